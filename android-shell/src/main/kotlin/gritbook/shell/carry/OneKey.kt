package gritbook.shell.carry

import java.io.IOException
import java.net.Socket
import java.security.MessageDigest
import java.security.cert.CertificateException
import java.security.cert.X509Certificate
import javax.net.ssl.HostnameVerifier
import javax.net.ssl.HttpsURLConnection
import javax.net.ssl.SSLContext
import javax.net.ssl.SSLEngine
import javax.net.ssl.SSLException
import javax.net.ssl.SSLHandshakeException
import javax.net.ssl.SSLPeerUnverifiedException
import javax.net.ssl.X509ExtendedTrustManager

/**
 * TLS to the one depot that holds the enrolled key: SHA-256 of the DER of its SubjectPublicKeyInfo, which is what [java.security.PublicKey.getEncoded]
 * gives for X.509. No authority, no name and no date is asked; that the other side holds the key, the handshake proves before a request goes out.
 */
internal class OneKey(private val sha256: String) {
    private val trust = object : X509ExtendedTrustManager() {
        private fun check(chain: Array<out X509Certificate>?) {
            val key = chain?.firstOrNull()?.publicKey?.encoded ?: throw CertificateException("no certificate")
            val found = MessageDigest.getInstance("SHA-256").digest(key).joinToString("") { "%02x".format(it) }
            if (!found.equals(sha256, ignoreCase = true)) throw CertificateException("another key")
        }

        override fun checkServerTrusted(chain: Array<out X509Certificate>?, type: String?) = check(chain)

        override fun checkServerTrusted(chain: Array<out X509Certificate>?, type: String?, socket: Socket?) = check(chain)

        override fun checkServerTrusted(chain: Array<out X509Certificate>?, type: String?, engine: SSLEngine?) = check(chain)

        override fun checkClientTrusted(chain: Array<out X509Certificate>?, type: String?) = nobody()

        override fun checkClientTrusted(chain: Array<out X509Certificate>?, type: String?, socket: Socket?) = nobody()

        override fun checkClientTrusted(chain: Array<out X509Certificate>?, type: String?, engine: SSLEngine?) = nobody()

        private fun nobody(): Nothing = throw CertificateException("this device is no server")

        override fun getAcceptedIssuers(): Array<X509Certificate> = emptyArray()
    }

    private val sockets by lazy { SSLContext.getInstance("TLS").apply { init(null, arrayOf(trust), null) }.socketFactory }

    /** Before it connects. */
    fun guard(link: HttpsURLConnection) {
        link.sslSocketFactory = sockets
        // The key is the name.
        link.hostnameVerifier = HostnameVerifier { _, _ -> true }
    }

    companion object {
        /** Whether TLS was ended because of what the other side showed; everything else is a fault of the link. */
        fun refused(error: IOException): Boolean = when (error) {
            is SSLPeerUnverifiedException -> true
            // A link that ends in the middle of the handshake says so by its cause.
            is SSLHandshakeException -> generateSequence(error.cause) { it.cause }.none { it is IOException && it !is SSLException }
            else -> false
        }
    }
}
